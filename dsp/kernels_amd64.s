#include "textflag.h"

// The inner loops with AVX2 and FMA, four numbers at a time. Each has a plain
// twin in Go, to which the tests hold it.

// func cpuid(leaf, sub uint32) (a, b, c, d uint32)
TEXT ·cpuid(SB), NOSPLIT, $0-24
	MOVL leaf+0(FP), AX
	MOVL sub+4(FP), CX
	CPUID
	MOVL AX, a+8(FP)
	MOVL BX, b+12(FP)
	MOVL CX, c+16(FP)
	MOVL DX, d+20(FP)
	RET

// func xgetbv() uint32
TEXT ·xgetbv(SB), NOSPLIT, $0-4
	XORL CX, CX
	XGETBV
	MOVL AX, ret+0(FP)
	RET

// SUM adds the four numbers of y, X of which is the low half, into its lowest.
#define SUM(y, x, t) \
	VEXTRACTF128 $1, y, t \
	VADDPD       t, x, x  \
	VHADDPD      x, x, x

// func combSumsVectors(dst, table, planes *float64, half, pairs int)
TEXT ·combSumsVectors(SB), NOSPLIT, $0-40
	MOVQ dst+0(FP), DI
	MOVQ table+8(FP), SI
	MOVQ planes+16(FP), R8
	MOVQ half+24(FP), CX
	MOVQ pairs+32(FP), DX
	SHLQ $3, CX              // bytes of a plane
	LEAQ (R8)(CX*1), R9
	LEAQ (R9)(CX*1), R10
	LEAQ (R10)(CX*1), R11

pair:
	LEAQ   (SI)(CX*1), R12   // sines
	LEAQ   (R12)(CX*1), R13  // the next row's cosines
	LEAQ   (R13)(CX*1), R15  // and sines
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7
	XORQ   BX, BX

terms:
	VMOVUPD     (R8)(BX*1), Y8
	VMOVUPD     (R9)(BX*1), Y9
	VMOVUPD     (R10)(BX*1), Y10
	VMOVUPD     (R11)(BX*1), Y11
	VMOVUPD     (SI)(BX*1), Y12
	VMOVUPD     (R12)(BX*1), Y13
	VMOVUPD     (R13)(BX*1), Y14
	VMOVUPD     (R15)(BX*1), Y15
	VFMADD231PD Y8, Y12, Y0
	VFMADD231PD Y9, Y12, Y1
	VFMADD231PD Y10, Y13, Y2
	VFMADD231PD Y11, Y13, Y3
	VFMADD231PD Y8, Y14, Y4
	VFMADD231PD Y9, Y14, Y5
	VFMADD231PD Y10, Y15, Y6
	VFMADD231PD Y11, Y15, Y7
	ADDQ        $32, BX
	CMPQ        BX, CX
	JLT         terms

	SUM(Y0, X0, X8)
	SUM(Y1, X1, X8)
	SUM(Y2, X2, X8)
	SUM(Y3, X3, X8)
	SUM(Y4, X4, X8)
	SUM(Y5, X5, X8)
	SUM(Y6, X6, X8)
	SUM(Y7, X7, X8)
	VMOVSD X0, (DI)
	VMOVSD X1, 8(DI)
	VMOVSD X2, 16(DI)
	VMOVSD X3, 24(DI)
	VMOVSD X4, 32(DI)
	VMOVSD X5, 40(DI)
	VMOVSD X6, 48(DI)
	VMOVSD X7, 56(DI)
	ADDQ   $64, DI
	LEAQ   (R15)(CX*1), SI
	DECQ   DX
	JNZ    pair
	VZEROUPPER
	RET

// func combSpreadVectors(planes, table, values *float64, half, pairs int)
TEXT ·combSpreadVectors(SB), NOSPLIT, $0-40
	MOVQ planes+0(FP), R8
	MOVQ table+8(FP), SI
	MOVQ values+16(FP), DI
	MOVQ half+24(FP), CX
	MOVQ pairs+32(FP), DX
	SHLQ $3, CX
	LEAQ (R8)(CX*1), R9
	LEAQ (R9)(CX*1), R10
	LEAQ (R10)(CX*1), R11

pair:
	LEAQ         (SI)(CX*1), R12
	LEAQ         (R12)(CX*1), R13
	LEAQ         (R13)(CX*1), R15
	VBROADCASTSD (DI), Y0
	VBROADCASTSD 8(DI), Y1
	VBROADCASTSD 16(DI), Y2
	VBROADCASTSD 24(DI), Y3
	VBROADCASTSD 32(DI), Y4
	VBROADCASTSD 40(DI), Y5
	VBROADCASTSD 48(DI), Y6
	VBROADCASTSD 56(DI), Y7
	XORQ         BX, BX

terms:
	VMOVUPD     (R8)(BX*1), Y8
	VMOVUPD     (R9)(BX*1), Y9
	VMOVUPD     (R10)(BX*1), Y10
	VMOVUPD     (R11)(BX*1), Y11
	VMOVUPD     (SI)(BX*1), Y12
	VMOVUPD     (R12)(BX*1), Y13
	VMOVUPD     (R13)(BX*1), Y14
	VMOVUPD     (R15)(BX*1), Y15
	VFMADD231PD Y12, Y0, Y8
	VFMADD231PD Y12, Y1, Y9
	VFMADD231PD Y13, Y2, Y10
	VFMADD231PD Y13, Y3, Y11
	VFMADD231PD Y14, Y4, Y8
	VFMADD231PD Y14, Y5, Y9
	VFMADD231PD Y15, Y6, Y10
	VFMADD231PD Y15, Y7, Y11
	VMOVUPD     Y8, (R8)(BX*1)
	VMOVUPD     Y9, (R9)(BX*1)
	VMOVUPD     Y10, (R10)(BX*1)
	VMOVUPD     Y11, (R11)(BX*1)
	ADDQ        $32, BX
	CMPQ        BX, CX
	JLT         terms

	ADDQ $64, DI
	LEAQ (R15)(CX*1), SI
	DECQ DX
	JNZ  pair
	VZEROUPPER
	RET

// func dotsVectors(dst *float64, a, b0, b1, b2, b3 *complex128, pairs int)
TEXT ·dotsVectors(SB), NOSPLIT, $0-56
	MOVQ   dst+0(FP), DI
	MOVQ   a+8(FP), SI
	MOVQ   b0+16(FP), R8
	MOVQ   b1+24(FP), R9
	MOVQ   b2+32(FP), R10
	MOVQ   b3+40(FP), R11
	MOVQ   pairs+48(FP), CX
	SHLQ   $5, CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	XORQ   BX, BX

terms:
	VMOVUPD     (SI)(BX*1), Y8
	VFMADD231PD (R8)(BX*1), Y8, Y0
	VFMADD231PD (R9)(BX*1), Y8, Y1
	VFMADD231PD (R10)(BX*1), Y8, Y2
	VFMADD231PD (R11)(BX*1), Y8, Y3
	ADDQ        $32, BX
	CMPQ        BX, CX
	JLT         terms

	SUM(Y0, X0, X8)
	SUM(Y1, X1, X8)
	SUM(Y2, X2, X8)
	SUM(Y3, X3, X8)
	VMOVSD X0, (DI)
	VMOVSD X1, 8(DI)
	VMOVSD X2, 16(DI)
	VMOVSD X3, 24(DI)
	VZEROUPPER
	RET

// func dotsOfTwoVectors(dst *float64, a, also, b0, b1, b2, b3 *complex128, pairs int)
TEXT ·dotsOfTwoVectors(SB), NOSPLIT, $0-64
	MOVQ   dst+0(FP), DI
	MOVQ   a+8(FP), SI
	MOVQ   also+16(FP), R12
	MOVQ   b0+24(FP), R8
	MOVQ   b1+32(FP), R9
	MOVQ   b2+40(FP), R10
	MOVQ   b3+48(FP), R11
	MOVQ   pairs+56(FP), CX
	SHLQ   $5, CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7
	XORQ   BX, BX

terms:
	VMOVUPD     (SI)(BX*1), Y8
	VMOVUPD     (R12)(BX*1), Y9
	VMOVUPD     (R8)(BX*1), Y10
	VMOVUPD     (R9)(BX*1), Y11
	VMOVUPD     (R10)(BX*1), Y12
	VMOVUPD     (R11)(BX*1), Y13
	VFMADD231PD Y10, Y8, Y0
	VFMADD231PD Y11, Y8, Y1
	VFMADD231PD Y12, Y8, Y2
	VFMADD231PD Y13, Y8, Y3
	VFMADD231PD Y10, Y9, Y4
	VFMADD231PD Y11, Y9, Y5
	VFMADD231PD Y12, Y9, Y6
	VFMADD231PD Y13, Y9, Y7
	ADDQ        $32, BX
	CMPQ        BX, CX
	JLT         terms

	SUM(Y0, X0, X8)
	SUM(Y1, X1, X8)
	SUM(Y2, X2, X8)
	SUM(Y3, X3, X8)
	SUM(Y4, X4, X8)
	SUM(Y5, X5, X8)
	SUM(Y6, X6, X8)
	SUM(Y7, X7, X8)
	VMOVSD X0, (DI)
	VMOVSD X1, 8(DI)
	VMOVSD X2, 16(DI)
	VMOVSD X3, 24(DI)
	VMOVSD X4, 32(DI)
	VMOVSD X5, 40(DI)
	VMOVSD X6, 48(DI)
	VMOVSD X7, 56(DI)
	VZEROUPPER
	RET

// FOUR is a number, four times over.
#define FOUR(offset, bits) \
	DATA exponents<>+(offset+0)(SB)/8, bits  \
	DATA exponents<>+(offset+8)(SB)/8, bits  \
	DATA exponents<>+(offset+16)(SB)/8, bits \
	DATA exponents<>+(offset+24)(SB)/8, bits

FOUR(0, $1.4426950408889634074)     // log2 e
FOUR(32, $0x3fe62e42fefa39ef)       // ln 2, rounded
FOUR(64, $0x3c7abc9e3b39803f)       // and the rest of it
FOUR(96, $0.63661977236758134308)   // 2/π
FOUR(128, $0x3ff921fb54442d18)      // π/2, rounded
FOUR(160, $0x3c91a62633145c07)      // and the rest of it
FOUR(192, $709.0)
FOUR(224, $-708.0)
FOUR(256, $1.0)
FOUR(288, $0.5)

// 1/k! of e^r.
FOUR(320, $2.08767569878680989792e-9) // 12
FOUR(352, $2.50521083854417187751e-8)
FOUR(384, $2.75573192239858906526e-7)
FOUR(416, $2.75573192239858906526e-6)
FOUR(448, $2.48015873015873015873e-5)
FOUR(480, $1.98412698412698412698e-4)
FOUR(512, $1.38888888888888888889e-3)
FOUR(544, $8.33333333333333333333e-3)
FOUR(576, $4.16666666666666666667e-2)
FOUR(608, $1.66666666666666666667e-1) // 3

// Of sin r and cos r for |r| up to π/4, as package math has them (S. L. Moshier,
// Cephes).
FOUR(640, $1.58962301576546568060e-10)
FOUR(672, $-2.50507477628578072866e-8)
FOUR(704, $2.75573136213857245213e-6)
FOUR(736, $-1.98412698295895385996e-4)
FOUR(768, $8.33333333332211858878e-3)
FOUR(800, $-1.66666666666666307295e-1)
FOUR(832, $-1.13585365213876817300e-11)
FOUR(864, $2.08757008419747316778e-9)
FOUR(896, $-2.75573141792967388112e-7)
FOUR(928, $2.48015872888517045348e-5)
FOUR(960, $-1.38888888888730564116e-3)
FOUR(992, $4.16666666666665929218e-2)
FOUR(1024, $0x00000000000003ff)       // bias of the exponent
FOUR(1056, $0x0000000000000001)
FOUR(1088, $0x0000000000000002)
GLOBL exponents<>(SB), RODATA|NOPTR, $1120

// EXPONENTIAL reads four z from SI and leaves e^x in Y5, sin y in Y12 and cos y in
// Y13, in the order 0 2 1 3.
#define EXPONENTIAL \
	VMOVUPD   (SI), Y0 \
	VMOVUPD   32(SI), Y1 \
	VUNPCKLPD Y1, Y0, Y2 \
	VUNPCKHPD Y1, Y0, Y3 \
	VMINPD       exponents<>+192(SB), Y2, Y2 \
	VMAXPD       exponents<>+224(SB), Y2, Y2 \
	VMULPD       exponents<>+0(SB), Y2, Y4 \
	VROUNDPD     $0, Y4, Y4 \
	VFNMADD231PD exponents<>+32(SB), Y4, Y2 \
	VFNMADD231PD exponents<>+64(SB), Y4, Y2 \
	VMOVUPD      exponents<>+320(SB), Y5 \
	VFMADD213PD  exponents<>+352(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+384(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+416(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+448(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+480(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+512(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+544(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+576(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+608(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+288(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+256(SB), Y2, Y5 \
	VFMADD213PD  exponents<>+256(SB), Y2, Y5 \
	VCVTPD2DQY   Y4, X4 \
	VPMOVSXDQ    X4, Y4 \
	VPADDQ       exponents<>+1024(SB), Y4, Y4 \
	VPSLLQ       $52, Y4, Y4 \
	VMULPD       Y4, Y5, Y5 \
	VMULPD       exponents<>+96(SB), Y3, Y6 \
	VROUNDPD     $0, Y6, Y6 \
	VFNMADD231PD exponents<>+128(SB), Y6, Y3 \
	VFNMADD231PD exponents<>+160(SB), Y6, Y3 \
	VCVTPD2DQY   Y6, X6 \
	VPMOVSXDQ    X6, Y6 \
	VMULPD       Y3, Y3, Y7 \
	VMOVUPD      exponents<>+640(SB), Y8 \
	VMOVUPD      exponents<>+832(SB), Y9 \
	VFMADD213PD  exponents<>+672(SB), Y7, Y8 \
	VFMADD213PD  exponents<>+864(SB), Y7, Y9 \
	VFMADD213PD  exponents<>+704(SB), Y7, Y8 \
	VFMADD213PD  exponents<>+896(SB), Y7, Y9 \
	VFMADD213PD  exponents<>+736(SB), Y7, Y8 \
	VFMADD213PD  exponents<>+928(SB), Y7, Y9 \
	VFMADD213PD  exponents<>+768(SB), Y7, Y8 \
	VFMADD213PD  exponents<>+960(SB), Y7, Y9 \
	VFMADD213PD  exponents<>+800(SB), Y7, Y8 \
	VFMADD213PD  exponents<>+992(SB), Y7, Y9 \
	VMULPD       Y3, Y7, Y10 \
	VFMADD213PD  Y3, Y10, Y8 \
	VMULPD       Y7, Y7, Y10 \
	VMULPD       Y10, Y9, Y9 \
	VFNMADD231PD exponents<>+288(SB), Y7, Y9 \
	VADDPD       exponents<>+256(SB), Y9, Y9 \
	VPAND        exponents<>+1056(SB), Y6, Y10 \
	VPXOR        Y11, Y11, Y11 \
	VPCMPEQQ     Y11, Y10, Y10 \
	VBLENDVPD    Y10, Y8, Y9, Y12 \
	VBLENDVPD    Y10, Y9, Y8, Y13 \
	VPAND        exponents<>+1088(SB), Y6, Y14 \
	VPSLLQ       $62, Y14, Y14 \
	VPXOR        Y14, Y12, Y12 \
	VPADDQ       exponents<>+1056(SB), Y6, Y15 \
	VPAND        exponents<>+1088(SB), Y15, Y15 \
	VPSLLQ       $62, Y15, Y15 \
	VPXOR        Y15, Y13, Y13

// func expVectors(dst, z *complex128, quads int)
TEXT ·expVectors(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ z+8(FP), SI
	MOVQ quads+16(FP), CX

quad:
	EXPONENTIAL
	VMULPD    Y5, Y13, Y13
	VMULPD    Y5, Y12, Y12
	VUNPCKLPD Y12, Y13, Y0
	VUNPCKHPD Y12, Y13, Y1
	VMOVUPD   Y0, (DI)
	VMOVUPD   Y1, 32(DI)
	ADDQ      $64, SI
	ADDQ      $64, DI
	DECQ      CX
	JNZ       quad
	VZEROUPPER
	RET

// func expBothVectors(dst, inverse, z *complex128, quads int)
TEXT ·expBothVectors(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ inverse+8(FP), R8
	MOVQ z+16(FP), SI
	MOVQ quads+24(FP), CX

quad:
	EXPONENTIAL
	VMOVUPD   exponents<>+256(SB), Y6
	VDIVPD    Y5, Y6, Y6
	VMULPD    Y5, Y13, Y7
	VMULPD    Y5, Y12, Y8
	VUNPCKLPD Y8, Y7, Y0
	VUNPCKHPD Y8, Y7, Y1
	VPXOR     Y9, Y9, Y9
	VSUBPD    Y12, Y9, Y12
	VMULPD    Y6, Y13, Y13
	VMULPD    Y6, Y12, Y12
	VMOVUPD   Y0, (DI)
	VMOVUPD   Y1, 32(DI)
	VUNPCKLPD Y12, Y13, Y0
	VUNPCKHPD Y12, Y13, Y1
	VMOVUPD   Y0, (R8)
	VMOVUPD   Y1, 32(R8)
	ADDQ      $64, SI
	ADDQ      $64, DI
	ADDQ      $64, R8
	DECQ      CX
	JNZ       quad
	VZEROUPPER
	RET
