#include "textflag.h"

DATA unit<>+0(SB)/8, $1.0
DATA unit<>+8(SB)/8, $0.0
DATA unit<>+16(SB)/8, $1.0
DATA unit<>+24(SB)/8, $0.0
GLOBL unit<>(SB), RODATA|NOPTR, $32

DATA conjugate<>+0(SB)/8, $0x0000000000000000
DATA conjugate<>+8(SB)/8, $0x8000000000000000
DATA conjugate<>+16(SB)/8, $0x0000000000000000
DATA conjugate<>+24(SB)/8, $0x8000000000000000
GLOBL conjugate<>(SB), RODATA|NOPTR, $32

DATA ones<>+0(SB)/8, $1.0
DATA ones<>+8(SB)/8, $1.0
DATA ones<>+16(SB)/8, $1.0
DATA ones<>+24(SB)/8, $1.0
GLOBL ones<>(SB), RODATA|NOPTR, $32

// PRODUCT is out = a·b of two complex numbers each, every product rounded; s and t are
// used up. out may be none of the others.
#define PRODUCT(a, b, out, s, t) \
	VMOVDDUP  a, out      \
	VPERMILPD $15, a, t   \
	VPERMILPD $5, b, s    \
	VMULPD    b, out, out \
	VMULPD    s, t, t     \
	VADDSUBPD t, out, out

// func blendVectors(dst, x, y *complex128, a, b float64, pairs int)
TEXT ·blendVectors(SB), NOSPLIT, $0-48
	MOVQ         dst+0(FP), DI
	MOVQ         x+8(FP), SI
	MOVQ         y+16(FP), R8
	VBROADCASTSD a+24(FP), Y0
	VBROADCASTSD b+32(FP), Y1
	MOVQ         pairs+40(FP), CX
	SHLQ         $5, CX
	XORQ         BX, BX

pair:
	VMULPD  (SI)(BX*1), Y0, Y2
	VMULPD  (R8)(BX*1), Y1, Y3
	VADDPD  Y3, Y2, Y2
	VMOVUPD Y2, (DI)(BX*1)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     pair
	VZEROUPPER
	RET

// func scaleVectors(dst, v *complex128, factor float64, pairs int)
TEXT ·scaleVectors(SB), NOSPLIT, $0-32
	MOVQ         dst+0(FP), DI
	MOVQ         v+8(FP), SI
	VBROADCASTSD factor+16(FP), Y0
	MOVQ         pairs+24(FP), CX
	SHLQ         $5, CX
	XORQ         BX, BX

pair:
	VMULPD  (SI)(BX*1), Y0, Y1
	VMOVUPD Y1, (DI)(BX*1)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     pair
	VZEROUPPER
	RET

// func weighVectors(dst, v *complex128, weight *float64, quads int)
TEXT ·weighVectors(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ v+8(FP), SI
	MOVQ weight+16(FP), R8
	MOVQ quads+24(FP), CX
	SHLQ $5, CX
	XORQ BX, BX

quad:
	VMOVUPD (R8)(BX*1), Y0
	VPERMPD $0x50, Y0, Y1
	VPERMPD $0xFA, Y0, Y2
	VMULPD  (SI)(BX*2), Y1, Y1
	VMULPD  32(SI)(BX*2), Y2, Y2
	VMOVUPD Y1, (DI)(BX*2)
	VMOVUPD Y2, 32(DI)(BX*2)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     quad
	VZEROUPPER
	RET

// func multiplyVectors(dst, a, b *complex128, pairs int)
TEXT ·multiplyVectors(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), R8
	MOVQ pairs+24(FP), CX
	SHLQ $5, CX
	XORQ BX, BX

pair:
	VMOVUPD (SI)(BX*1), Y0
	VMOVUPD (R8)(BX*1), Y1
	PRODUCT(Y0, Y1, Y2, Y3, Y4)
	VMOVUPD Y2, (DI)(BX*1)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     pair
	VZEROUPPER
	RET

// func lateralVectors(dst, gain, local *complex128, sign, scale float64, pairs int)
TEXT ·lateralVectors(SB), NOSPLIT, $0-48
	MOVQ         dst+0(FP), DI
	MOVQ         gain+8(FP), SI
	MOVQ         local+16(FP), R8
	VBROADCASTSD sign+24(FP), Y12
	VBROADCASTSD scale+32(FP), Y13
	VMOVUPD      unit<>+0(SB), Y14
	MOVQ         pairs+40(FP), CX
	SHLQ         $5, CX
	XORQ         BX, BX

pair:
	VMULPD  (R8)(BX*1), Y12, Y0
	VADDPD  Y0, Y14, Y0
	VMOVUPD (SI)(BX*1), Y1
	PRODUCT(Y1, Y0, Y2, Y3, Y4)
	PRODUCT(Y2, Y0, Y1, Y3, Y4)
	VMULPD  Y1, Y13, Y1
	VMOVUPD Y1, (DI)(BX*1)
	ADDQ    $32, BX
	CMPQ    BX, CX
	JLT     pair
	VZEROUPPER
	RET

// func changedVectors(dst, gain, local, reflect, through, behind, back *complex128, step float64, pairs int)
TEXT ·changedVectors(SB), NOSPLIT, $0-72
	MOVQ         dst+0(FP), DI
	MOVQ         gain+8(FP), SI
	MOVQ         local+16(FP), R8
	MOVQ         reflect+24(FP), R9
	MOVQ         through+32(FP), R10
	MOVQ         behind+40(FP), R11
	MOVQ         back+48(FP), R12
	VBROADCASTSD step+56(FP), Y12
	VMOVUPD      unit<>+0(SB), Y13
	VMOVUPD      conjugate<>+0(SB), Y14
	VMOVUPD      ones<>+0(SB), Y15
	MOVQ         pairs+64(FP), CX
	SHLQ         $5, CX
	XORQ         BX, BX

pair:
	VMOVUPD   (R12)(BX*1), Y0
	VMOVUPD   (R11)(BX*1), Y1
	PRODUCT(Y1, Y0, Y2, Y3, Y4)
	VSUBPD    Y2, Y13, Y2
	VMULPD    Y2, Y2, Y3
	VPERMILPD $5, Y3, Y4
	VADDPD    Y4, Y3, Y3
	VDIVPD    Y3, Y15, Y3
	VXORPD    Y14, Y2, Y2
	VMULPD    Y3, Y2, Y5        // 1/(1 − behind·back)
	VMOVUPD   (R10)(BX*1), Y1
	PRODUCT(Y1, Y0, Y2, Y3, Y4)
	PRODUCT(Y2, Y5, Y0, Y3, Y4)
	VADDPD    (R9)(BX*1), Y0, Y0
	VSUBPD    (R8)(BX*1), Y0, Y0
	VMOVUPD   (SI)(BX*1), Y1
	PRODUCT(Y1, Y0, Y2, Y3, Y4)
	VDIVPD    Y12, Y2, Y2
	VMOVUPD   Y2, (DI)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET

// func mismatchVectors(dst, z, line *complex128, pairs int)
TEXT ·mismatchVectors(SB), NOSPLIT, $0-32
	MOVQ    dst+0(FP), DI
	MOVQ    z+8(FP), SI
	MOVQ    line+16(FP), R8
	VMOVUPD conjugate<>+0(SB), Y14
	VMOVUPD ones<>+0(SB), Y15
	MOVQ    pairs+24(FP), CX
	SHLQ    $5, CX
	XORQ    BX, BX

pair:
	VMOVUPD   (SI)(BX*1), Y0
	VMOVUPD   (R8)(BX*1), Y1
	VADDPD    Y1, Y0, Y2
	VSUBPD    Y1, Y0, Y0
	VMULPD    Y2, Y2, Y3
	VPERMILPD $5, Y3, Y4
	VADDPD    Y4, Y3, Y3
	VDIVPD    Y3, Y15, Y3
	VXORPD    Y14, Y2, Y2
	PRODUCT(Y0, Y2, Y1, Y4, Y5)
	VMULPD    Y3, Y1, Y1
	VMOVUPD   Y1, (DI)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET

// func accumulateVectors(dst, v *complex128, re, im float64, pairs int)
TEXT ·accumulateVectors(SB), NOSPLIT, $0-40
	MOVQ         dst+0(FP), DI
	MOVQ         v+8(FP), SI
	VBROADCASTSD re+16(FP), Y0
	VBROADCASTSD im+24(FP), Y1
	MOVQ         pairs+32(FP), CX
	SHLQ         $5, CX
	XORQ         BX, BX

pair:
	VMOVUPD   (SI)(BX*1), Y2
	VPERMILPD $5, Y2, Y3
	VMULPD    Y2, Y0, Y2
	VMULPD    Y3, Y1, Y3
	VADDSUBPD Y3, Y2, Y2
	VADDPD    (DI)(BX*1), Y2, Y2
	VMOVUPD   Y2, (DI)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET

// func rotateVectors(dst, u, v *complex128, re, im, s float64, pairs int)
TEXT ·rotateVectors(SB), NOSPLIT, $0-56
	MOVQ         dst+0(FP), DI
	MOVQ         u+8(FP), SI
	MOVQ         v+16(FP), R8
	VBROADCASTSD re+24(FP), Y0
	VBROADCASTSD im+32(FP), Y1
	VBROADCASTSD s+40(FP), Y2
	MOVQ         pairs+48(FP), CX
	SHLQ         $5, CX
	XORQ         BX, BX

pair:
	VMOVUPD   (SI)(BX*1), Y3
	VMOVUPD   (R8)(BX*1), Y4
	VPERMILPD $5, Y4, Y5
	VMULPD    Y4, Y0, Y6
	VSUBPD    Y6, Y3, Y3
	VMULPD    Y5, Y1, Y5
	VADDSUBPD Y5, Y3, Y3
	VDIVPD    Y2, Y3, Y3
	VMOVUPD   Y3, (DI)(BX*1)
	VPERMILPD $5, Y3, Y5
	VMULPD    Y3, Y0, Y6
	VMULPD    Y5, Y1, Y5
	VADDSUBPD Y5, Y6, Y6
	VMULPD    Y4, Y2, Y4
	VSUBPD    Y6, Y4, Y4
	VMOVUPD   Y4, (R8)(BX*1)
	ADDQ      $32, BX
	CMPQ      BX, CX
	JLT       pair
	VZEROUPPER
	RET
